"""What a part needs before it can do its work: everything that its settings name is tried when it starts.

It may know the settings, and who reads what they name; it knows no other command.
"""
