"""How a model swing is chosen: traits of body and stroke, how unlike two players are in them, and why, in words."""
