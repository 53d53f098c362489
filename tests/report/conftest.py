"""The configuration of the command's own tests serves here too."""

from tests.cli.conftest import config as config
