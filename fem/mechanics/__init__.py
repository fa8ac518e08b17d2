"""Plan and law → mesh, energies and the positions at equilibrium."""
