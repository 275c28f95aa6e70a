"""equipdecide: keep, upgrade, sell or replace a machine tool."""
