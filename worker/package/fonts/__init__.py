"""The embedded typefaces, the styles that text is set in, and how wide it then is.

Knows the library that draws; nothing of what is written.
"""
