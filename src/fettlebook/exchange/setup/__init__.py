"""Guided set-up: questions and answers from nothing to a practice file. Pure but for `kept` and `ended`, which touch the folder.

A script asks one question after the other; which one comes next follows from the answers alone. Faces only show a question and
hand back what was typed.
"""
