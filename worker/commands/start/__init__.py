"""What a part needs before it can do its work: everything that its settings name is tried when it starts.

It may know the settings, and who reads what they name; it knows no other command.
"""

from worker.commands.start.check import PartName, check_settings
from worker.commands.start.tried import State, Tried
from worker.commands.start.waiting import await_settings

__all__ = ["PartName", "State", "Tried", "await_settings", "check_settings"]
