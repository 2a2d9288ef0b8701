"""Judging: from design, criteria and records to findings, work and a verdict; pure."""
