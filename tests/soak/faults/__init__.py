"""Two crews post and packages are issued while processes and servers are killed: what has to be true afterwards is."""
