"""What PDF/A-3b asks for beside pages, and every private part of ReportLab that is touched.

Knows ReportLab and bytes; nothing of packages.
"""
