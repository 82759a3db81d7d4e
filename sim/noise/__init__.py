"""External noise: field densities by class of site, or as measured."""
