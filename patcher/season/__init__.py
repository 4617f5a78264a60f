"""The season's work: what is to be done, box by box, what a person said is done, how long it took, what failed.

What is to do is never kept: it is the plan (the show and its patch) less what was ticked off. A tick holds for the
settings for which it was given, so a change of the plan makes to do again just what it touches.
"""
