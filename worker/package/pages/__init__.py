"""Everything about paper: where sections, tables and pictures stand, and the operators that draw them.

Knows the document model, fonts and archive; no section, and no word that a section says.
"""
