"""Maps as one HTML file each: one property, or pins of many; nothing is fetched."""
