"""Numbers as num2words 0.5.14 spells them in Spanish, and the words of each line
as text2num 3.1.0 reads them: number, masculine words, feminine words."""
import sys

from num2words import num2words
from text_to_num import text2num

for line in sys.stdin:
    number, masculine, feminine = line.rstrip("\n").split("\t")
    read = [text2num(words, "es") for words in (masculine, feminine)]
    print(num2words(int(number), lang="es"), *read, sep="\t")
