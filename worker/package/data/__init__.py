"""What a package is drawn from: its content, the files attached to it, and the way back from them.

Knows the vocabulary, and the judge where data are held against themselves; nothing of how any of it is worded or drawn.
"""
