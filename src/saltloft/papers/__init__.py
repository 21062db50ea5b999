"""Finished results on paper and as charts: sheets, dossiers, Vega-Lite specs.

May import everything above it but `store`, `facts` and `jobs`: it gets
finished results and looks nothing up. Read `page.py` first, then `day_sheet.py`.
"""
