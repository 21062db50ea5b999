"""One module a page; each offers `routes`. A page asks jobs and lays out what they answer."""
