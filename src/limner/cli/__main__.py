"""``python -m limner.cli``: the command where the script is not on the path."""

from limner.cli.main import run

if __name__ == "__main__":
    run()
