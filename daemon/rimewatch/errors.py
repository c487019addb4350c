"""The error that ends a command: a sentence for people, with the cure."""


class UserError(Exception):
    """Something a person can mend: a wrong file, a wrong option, a missing broker."""
