"""What is judged, drawn, signed and told: the part that works behind the requests.

It may know the service's vocabulary, actions and storage; the service knows nothing of it.
"""
