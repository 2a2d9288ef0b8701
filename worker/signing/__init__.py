"""Certify, countersign and verify packages: bytes in, bytes out; key and clock passed in, no network.

Rooms: trust, keys, updates, check, make, foreign; each knows those before it, and the words for signatures.
"""
