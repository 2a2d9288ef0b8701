"""What is kept: tables, sessions, and one file of statements per aggregate."""
