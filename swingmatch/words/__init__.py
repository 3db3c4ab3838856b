"""What is said, in one place and in the language that is asked for.

``language`` finds and sets the language, ``units`` turns figures into what a player understands, ``say`` holds the
sentences, ``po`` the translations' files.
"""
