"""From duct surveys and flood levels to a sealing programme: map, work packs, orders."""
