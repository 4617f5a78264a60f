"""Reference text by topic: what `topics.txt` says, and tables made of those that the program itself runs on."""

from patcher.reference.topics import Topic, TopicPart, parts_of, topics

__all__ = ["Topic", "TopicPart", "parts_of", "topics"]
