"""Many artworks at once, on this computer or a cluster, and small pieces packed onto plates."""
