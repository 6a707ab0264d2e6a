"""Mistakes: bite frames of the worlds in which one file is not what the others take it for.

``takes`` makes what the files are taken from, ``edits`` puts a wrong one in its place, ``every`` lists all
mistakes with what the program ought to say, ``matrix`` runs the program on them and prints the table:

    python -m tests.worlds.mistakes.matrix --heads 5 --keep FOLDER --table docs/mistakes.md
"""
