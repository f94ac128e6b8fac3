"""What components look like: domains, lengths of their pattern, interfaces, core and shell.

Pure functions on arrays; import the modules themselves, none of which loads scipy by itself.
"""
