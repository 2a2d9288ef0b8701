"""What is judged, drawn, signed and told: the part that works behind the requests."""

# What made a package, as it says itself. Written here, since an image holds the code and no metadata of a distribution.
PROGRAM = "route-acceptance 0.3.0"
