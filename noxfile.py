"""The tests on every Python that this package is for, each in an environment of its own; a Python that is not there is left out.

Run: nox              -- the tests of every change
     nox -s tests-3.13 -- on one Python
     nox -s long       -- the long tests and those in a browser
"""

import nox

PYTHONS = ["3.11", "3.12", "3.13", "3.14"]
nox.options.sessions = ["tests"]
nox.options.error_on_missing_interpreters = False


def install(session: nox.Session) -> None:
    """Install the package with what its tests need, at the versions that are held to."""
    session.install("-e", ".[test]", "-c", "constraints.txt")


@nox.session(python=PYTHONS)
def tests(session: nox.Session) -> None:
    """Run the tests of every change."""
    install(session)
    session.run("python", "-m", "pytest", "-q", "-n", "2", *session.posargs)


@nox.session(python=PYTHONS)
def long(session: nox.Session) -> None:
    """Run the long tests and those in a browser."""
    install(session)
    session.run("python", "-m", "pytest", "-q", "-n", "2", "-m", "long or browser", *session.posargs)
