"""Put a judged route into words and numbers, and draw them: the same input gives the same bytes."""
