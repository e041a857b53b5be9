"""One table per historical source; see :mod:`gracewright.graces.sources`."""
