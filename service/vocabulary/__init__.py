"""Records, designs and criteria as values, and the closed lists of words they use."""
