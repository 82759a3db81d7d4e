"""A built unit against its virtual sisters: the mask of good units, a sweep held against it, a record over years."""
