"""Reading and writing: sheets, outlines, meshes; atomic writes. Units change here and nowhere deeper."""
