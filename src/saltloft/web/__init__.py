"""The door for people with a browser: pages, the entry API, the outbox and the service worker.

May import everything but `cli`; reaches records only through `jobs`. It computes
nothing longer than 50 ms and never loads the drying kernel: the worker does that.
Read `app.py` first, then one page, `pages/lot.py`.
"""
