"""What is judged, drawn, signed and told: the part that works behind the requests."""
