from django.apps import AppConfig


class CompetitionsConfig(AppConfig):
    name = "competitions"
    verbose_name = "Competitions, classes, sheets and results"

    def ready(self) -> None:
        from competitions.selectors.titles import competition_titles, test_titles  # noqa: PLC0415 - as above
        from competitions.services.moved_pairs import MovedPairs  # noqa: PLC0415 - models are not ready before
        from riders.selectors import titles  # noqa: PLC0415 - as above
        from riders.services.followers import register  # noqa: PLC0415 - as above

        register(MovedPairs())
        titles.register("test", test_titles)
        titles.register("competition", competition_titles)
