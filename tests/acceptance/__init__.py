"""Proofs that the judge is right, against routes whose truth is known."""
