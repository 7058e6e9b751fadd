"""Files for machines: GeoPackage, rasters, styles, provenance, atomic writing."""
