"""Placeholder until the command lands."""

import argparse


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Nothing yet."""
