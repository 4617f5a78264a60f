"""The diagnosis: the fewest questions that name a fault. All of it is pure.

    diagnosis = Diagnosis.start(wiring, patch, "gable")     # a run, a grid, a port, a box or a prop
    while question := diagnosis.ask():
        send(question.frame)                                # frame.levels(universes, step) are its slots
        diagnosis.tell(key)                                 # one of the keys of question.answers
    diagnosis.found, diagnosis.same_look                    # faults, written KIND:WHERE=VALUE

`Diagnosis` stands in `case.py`. `begin` of `Diagnosis.start` takes what a person has seen already, so that a
walk-through that meets a no hands it over: each a frame, an ask of `patcher.eye` and the place of the answer.
"""
