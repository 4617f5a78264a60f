"""Verify and diagnose: proof for every run, and the fewest questions that name a fault. All of it is pure.

The face of the reasoning is `Diagnosis`:

    diagnosis = Diagnosis.start(wiring, patch, "gable")     # a run, a grid, a port, a box or a prop
    while question := diagnosis.ask():
        send(question.frame)                                # frame.levels(universes, step) are its slots
        diagnosis.tell(key)                                 # one of the keys of question.answers
    diagnosis.found, diagnosis.same_look                    # faults as DESIGN.md writes them

`begin` of `Diagnosis.start` takes what a person has seen already, so that a round that meets a no hands its looks over:
each a frame, an ask of `patcher.eye` and the place of the answer. `Painter` makes such frames of pixels and colours.

`hypotheses.py` lists what could be wrong, `scene.py` what it would look like, `frames.py` and `questions.py` what may
be asked; `posterior.py` is the belief after the answers, `engine.py` chooses the next question, `wording.py` speaks and
`remedies.py` says what to do.
"""

from patcher.verify.diagnosis import Answer, Diagnosis, Question, Seen
from patcher.verify.frames import Frame, Painter

__all__ = ["Answer", "Diagnosis", "Frame", "Painter", "Question", "Seen"]
