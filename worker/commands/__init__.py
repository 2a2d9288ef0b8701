"""The command line, the embedded servers and the demo's story: the top layer."""
