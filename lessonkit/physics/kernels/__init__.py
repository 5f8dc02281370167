"""The laws as compiled code: arrays in, arrays out. Imported only when something is to be simulated.

All modules here hold functions for numba, so that they use plain numbers, arrays and named tuples only. `state` means the
balls of a shot, shape (n, COLUMNS), columns by the constants of `kernels.state`; units mm, s, rad.
"""
