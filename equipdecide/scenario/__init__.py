"""One decision written down, and how it is read from a file."""

from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.faults import Fault, ScenarioError
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import load, loads
from equipdecide.scenario.writing import dump, schema

__all__ = ["Amount", "Fault", "Scenario", "ScenarioError", "dump", "load", "loads", "schema"]
