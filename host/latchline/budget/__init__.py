"""What coils, drivers, supply and fuse must bear, worked out before parts are bought."""
