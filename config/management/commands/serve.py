from __future__ import annotations

import os
import socket
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor

from config.environment import ROOT
from config.staticfolder import gather_static_files
from config.supervisor import Service, Supervisor

_THREADS = 4


class Command(BaseCommand):
    help = "Run the whole service: the web server, and the worker that makes reports, until it is told to stop."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="Address to listen on (0.0.0.0 for all).")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--workers", type=int, default=_web_processes(), help="Processes of the web server.")
        parser.add_argument("--no-worker", action="store_true", help="Only the web server; a worker runs elsewhere.")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        self._refuse_old_database()
        _refuse_taken_port(host, port)
        if gather_static_files():
            self._say("Static files gathered.")
        connections.close_all()
        services = [_web(host, port, options["workers"])]
        if not options["no_worker"]:
            services.append(worker_service())
        self._say(f"Markbook answers at http://{_shown(host)}:{port}/ as soon as the web server is up.")
        self._say("Reports are made by a worker of their own." if len(services) > 1 else "No worker is started here.")
        self._say("Ctrl-C ends everything.")
        code = Supervisor(services, say=self._say).run()
        if code:
            sys.exit(code)
        self._say("Ended.")

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()

    def _refuse_old_database(self) -> None:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            raise CommandError("The database is not up to date. Run: python manage.py migrate")


def _web_processes() -> int:
    """One core stays free for the worker and the database; more than four processes gain nothing on one machine."""
    return max(1, min(4, (os.cpu_count() or 1) - 1))


def _web(host: str, port: int, workers: int) -> Service:
    command = [
        *(sys.executable, "-m", "granian", "--interface", "wsgi", "--host", host, "--port", str(port)),
        *("--workers", str(workers), "--blocking-threads", str(_THREADS), "--working-dir", str(ROOT)),
        *("--respawn-failed-workers", "--workers-kill-timeout", "10", "--log-level", "warning"),
        "config.wsgi:application",
    ]
    return Service("web server", command, _environment(), vital=True)


def worker_service() -> Service:
    command = [
        *(sys.executable, "-m", "celery", "--quiet", "--app", "config", "--workdir", str(ROOT), "worker", "--beat"),
        *("--pool", "prefork", "--concurrency", "1", "--loglevel", "WARNING", "--without-gossip", "--without-mingle"),
        "--without-heartbeat",
    ]
    # This command has just checked the code that the worker would check again.
    return Service("worker", command, {**_environment(), "CELERY_SKIP_CHECKS": "1"})


def _environment() -> dict[str, str]:
    settings_module = os.environ.get("DJANGO_SETTINGS_MODULE", "config.settings")
    return {"DJANGO_SETTINGS_MODULE": settings_module, "MARKBOOK_DATA": str(settings.DATA_DIR)}


def _refuse_taken_port(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as problem:
            raise CommandError(
                f"Port {port} on {host} cannot be used ({problem.strerror}). "
                f"Choose another, for example --port {port + 1}."
            ) from problem


def _shown(host: str) -> str:
    if host in {"0.0.0.0", "::"}:  # noqa: S104 - only shown
        return "localhost"
    return f"[{host}]" if ":" in host else host
