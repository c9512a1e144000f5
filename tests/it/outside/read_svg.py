"""Reads an SVG with Python's own XML reader and prints its root and title."""

import sys
import xml.etree.ElementTree as tree

SVG = "{http://www.w3.org/2000/svg}"
root = tree.fromstring(sys.stdin.read())
print(root.tag.removeprefix(SVG), root.find(SVG + "title").text)
