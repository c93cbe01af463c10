"""What commands on a file must not load: it would make each of them slower to start."""

import subprocess
import sys


def test_the_models_know_nothing_of_a_server():
    told = "import sys, inventory.models; print('sqlalchemy.dialects.postgresql' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
