"""A throwaway authority: the keys and certificates of service and people, and the time; they prove nothing.

It may know how the service reads keys (`worker.signing`), and nothing of the story.
"""
