from diagnose.cli.main import run

run()
