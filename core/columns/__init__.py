"""What the columns of the stages' tables are: one module a stage, plain integers.

They stand apart from the compiled steps, so that channels, doubts and the window can read a table
without loading the compiler.
"""
