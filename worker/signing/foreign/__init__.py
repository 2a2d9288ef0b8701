"""Look at a PDF that anybody may have made, before a library reads it: nothing in it may cost more than it should.

What is read here is what the library would read, from the same places and by the same references, and each step has its
bound: bytes unpacked, objects, depth, nodes of a tree. Knows the checks, which it lets at a file that kept its bounds.
"""
