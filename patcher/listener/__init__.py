"""Everyone's streams, as they are heard: who sends, who fights, which boxes answer."""
