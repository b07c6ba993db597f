"""What all tests share."""

from hypothesis import settings

# No deadline: how long an example takes depends on what else the machine does. Derandomised: a run can be repeated.
settings.register_profile("afterfeel", deadline=None, derandomize=True)
settings.load_profile("afterfeel")
