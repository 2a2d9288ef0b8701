"""The three pictures: the route to scale, how losses are distributed, and how they add up; each as marks on a sheet.

Knows data, wording and fonts; what is exact in them stays a whole number of its last place until it is placed.
"""
