"""A camera that films a display of pixels: what a phone would have filmed, encoded by real encoders.

It is a judge: it knows where each pixel hangs, so that whoever reads the film can be told right from wrong. It imports
nothing of `patcher`.
"""

from film_camera.ambience import Ambient, Branch, Car, Glass, StreetLight
from film_camera.chance import random_camera, random_scene
from film_camera.filming import Picture, Shoot, film, pictures
from film_camera.things import Camera, Scene, Truth

__all__ = [
    "Ambient",
    "Branch",
    "Camera",
    "Car",
    "Glass",
    "Picture",
    "Scene",
    "Shoot",
    "StreetLight",
    "Truth",
    "film",
    "pictures",
    "random_camera",
    "random_scene",
]
