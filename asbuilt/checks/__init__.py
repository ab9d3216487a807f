"""Is the record complete and sound before everything is covered?"""
