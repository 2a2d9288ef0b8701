"""How the house is kept: what is counted of its rooms and of the ways through them."""
