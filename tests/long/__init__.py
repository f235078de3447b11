"""The long runs: random acts, killed servers, crowds, writers at the chain. ``python -m tests.long`` runs them and prints figures.

settings.py   settings of the servers that are started here
launcher.py   the program that loads Django once and forks servers, preparations and checks
server.py     the side of the test: start a launcher on a database, serve, kill, ask
visitor.py    a person at a terminal, over HTTP
acts.py       known acts over HTTP, each with a mark of its own by which it is found again
figures.py    what a run measured, for the table
"""
