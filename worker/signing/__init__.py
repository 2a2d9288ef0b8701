"""Certify, countersign and verify packages: bytes in, bytes out; key and clock passed in, no network."""
