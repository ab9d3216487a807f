"""Files for other mapping and drawing programs, and the sheets read back out of ours."""
