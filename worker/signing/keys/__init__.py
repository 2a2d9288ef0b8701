"""The key that the service signs with: from a PKCS#12 file, or inside a security module.

Knows certificates and their fitness, and no document.
"""
