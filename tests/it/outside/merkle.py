"""Roots and proofs of a growing tree by the package `pymerkle`. One leaf a line on
standard input. Prints `root 0 SIZE HASH` and `inclusion PLACE SIZE HASHES`, places
counted from 1. Its proofs of consistency are of another shape than RFC 6962's."""

import sys

from pymerkle import InmemoryTree

tree = InmemoryTree(algorithm="sha256")
leaves = sys.stdin.read().split("\n")
for leaf in leaves:
    tree.append_entry(leaf.encode())
for size in range(1, len(leaves) + 1):
    print("root", 0, size, tree.get_root(size).hex())
    for place in range(1, size + 1):
        # The first hash of its path is the leaf's own.
        path = tree.prove_inclusion(place, size).serialize()["path"][1:]
        print("inclusion", place, size, *path)
