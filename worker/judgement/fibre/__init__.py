"""What all of one fibre's tests show of it: losses by place, the link, returned light, end faces.

Knows traces, history and numbers; nothing of rules.
"""
