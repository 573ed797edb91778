"""What the main steps cost on a machine: used by ``underdash check --measure`` and by tests/benchmarks.

Nothing here opens a bus: frames go through a pair of sockets inside the process, and the daemon that is started has
buses that lead nowhere.
"""
