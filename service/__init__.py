"""What comes in, what is kept, what is read: the part that answers requests."""
