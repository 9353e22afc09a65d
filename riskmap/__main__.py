"""``python -m riskmap`` is the command ``riskmap``."""

from riskmap.cli import command_line

if __name__ == "__main__":
    command_line()
