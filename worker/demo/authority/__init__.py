"""A throwaway authority: the keys and certificates of service and people, and the time; they prove nothing.

It may know how the service reads keys (`worker.signing`), and nothing of the story.
"""

from worker.demo.authority.server import serve_time
from worker.demo.authority.throwaway import (
    AuthorityExistsError,
    DemonstrationAuthority,
    make_demonstration_authority,
    make_demonstration_person,
)

__all__ = [
    "AuthorityExistsError",
    "DemonstrationAuthority",
    "make_demonstration_authority",
    "make_demonstration_person",
    "serve_time",
]
