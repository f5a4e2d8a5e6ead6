"""Files that people bring and take: sheets, meshes, drawings, bench and job files; whole or not at all."""
