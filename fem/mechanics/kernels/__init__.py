"""Positions of the nodes → energy, nodal forces and tangent of the sheet's parts, compiled: a file an energy."""
