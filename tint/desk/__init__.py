"""The desk: a local web page over the same library."""
