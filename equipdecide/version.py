"""The version of this library, which a record carries."""

VERSION = "0.1.0"
