"""The verbs about webhooks: ``webhooks add | list | test | deliveries | redeliver | ...``."""

from __future__ import annotations

import argparse

from burrline._convert import format_instant
from burrline._terminal import (
    EX_DATAERR,
    EX_OK,
    Verbs,
    complain,
    given,
    say,
    say_json,
    tell,
    tell_all,
)
from burrline.client import Client
from burrline.models import Delivery, Webhook, WebhookWithSecret


def add(verbs: Verbs) -> None:
    group = verbs.group("webhooks", "Be told of alerts at a URL of your own.")

    made = group.add("add", _add, "Make a webhook; its secret is printed alone, once.")
    made.add_argument("address", metavar="URL", help="where to post to")
    made.add_argument("--id", dest="webhook_id", metavar="ID", help="left out, one is made")
    made.add_argument("--name", metavar="TEXT", help="who is told, for people")
    made.add_argument("--type", action="append", metavar="TYPE", help="repeatable; none = all")
    made.add_argument("--site", action="append", metavar="ID", help="only its events; repeatable")
    made.add_argument("--grinder", action="append", metavar="ID", help="likewise")

    group.add("list", _list, "List the webhooks.")

    for name, act, text in (
        ("test", _test, "Send a ping."),
        ("delete", _delete, "Take a webhook away."),
        ("enable", _enable, "Send again; the receiver has to prove itself."),
        ("disable", _disable, "Send nothing more."),
    ):
        group.add(name, act, text).add_argument("webhook_id", metavar="WEBHOOK")

    made = group.add("rotate", _rotate, "Make a new secret; it is printed alone, once.")
    made.add_argument("webhook_id", metavar="WEBHOOK")
    made.add_argument(
        "--overlap-seconds",
        type=int,
        metavar="N",
        help="so long the old one signs too; default one day",
    )

    made = group.add("deliveries", _deliveries, "Show what is and was on its way.")
    made.add_argument("webhook_id", metavar="WEBHOOK")
    made.add_argument("--state", choices=("waiting", "delivered", "failed"))
    made.add_argument("--limit", type=int, default=50, metavar="N", help="default %(default)s")

    made = group.add("redeliver", _redeliver, "Deliver events once more.")
    made.add_argument("webhook_id", metavar="WEBHOOK")
    made.add_argument("event_ids", nargs="*", metavar="EVENT")
    made.add_argument("--failed", action="store_true", help="all that were given up")


def _add(client: Client, options: argparse.Namespace) -> int:
    webhook = client.create_webhook(
        url=options.address,
        types=options.type,
        site_ids=options.site,
        grinder_ids=options.grinder,
        **given(options, "webhook_id", "name"),
    )
    return _tell_secret(options, webhook)


def _list(client: Client, options: argparse.Namespace) -> int:
    return tell_all(options, client.list_webhooks(limit=200), webhook_line)


def _test(client: Client, options: argparse.Namespace) -> int:
    delivery = client.test_webhook(options.webhook_id)
    return tell(options, delivery, delivery_line(delivery))


def _delete(client: Client, options: argparse.Namespace) -> int:
    webhook = client.delete_webhook(options.webhook_id)
    return tell(options, webhook, f"{webhook.webhook_id} deleted")


def _enable(client: Client, options: argparse.Namespace) -> int:
    webhook = client.update_webhook(options.webhook_id, is_enabled=True)
    return tell(options, webhook, webhook_line(webhook))


def _disable(client: Client, options: argparse.Namespace) -> int:
    webhook = client.update_webhook(options.webhook_id, is_enabled=False)
    return tell(options, webhook, webhook_line(webhook))


def _rotate(client: Client, options: argparse.Namespace) -> int:
    rotated = client.rotate_webhook_secret(
        options.webhook_id, overlap_seconds=options.overlap_seconds
    )
    return _tell_secret(options, rotated)


def _deliveries(client: Client, options: argparse.Namespace) -> int:
    page = client.list_deliveries(
        options.webhook_id, state=options.state, limit=max(1, min(options.limit, 200))
    )
    return tell_all(options, page.items, delivery_line)


def _redeliver(client: Client, options: argparse.Namespace) -> int:
    event_ids = list(options.event_ids)
    if options.failed:
        found = client.list_deliveries(options.webhook_id, state="failed", limit=200)
        event_ids += [one.event_id for one in found]
    if not event_ids:
        complain("nothing to deliver" if options.failed else "name events, or --failed")
        return EX_OK if options.failed else EX_DATAERR
    put = [client.redeliver(options.webhook_id, event_id) for event_id in event_ids]
    return tell_all(options, put, delivery_line)


def _tell_secret(options: argparse.Namespace, webhook: WebhookWithSecret) -> int:
    """The secret alone on standard output, for a file; what it belongs to beside it."""
    if options.json:
        say_json(webhook.to_json())
        return EX_OK
    complain(f"{webhook.webhook_id}: this is the only time its secret is shown")
    say(webhook.secret)
    return EX_OK


def webhook_line(webhook: Webhook) -> str:
    if webhook.disabled_at is not None:
        state = f"off ({webhook.disabled_because})"
    elif webhook.paused_until is not None and webhook.failure_count:
        state = f"failing, left alone until {format_instant(webhook.paused_until)}"
    else:
        state = "failing" if webhook.failure_count else "on"
    return f"{webhook.webhook_id}  {state}  {webhook.url}  {webhook.name}".rstrip()


def delivery_line(delivery: Delivery) -> str:
    last = delivery.attempts[0] if delivery.attempts else None
    told = "" if last is None else f"  {last.error or last.status}"
    again = ""
    if delivery.next_attempt_at is not None and delivery.attempts:
        again = f"  again at {format_instant(delivery.next_attempt_at)}"
    return (
        f"{delivery.event_id}  {delivery.state}  {delivery.type}  "
        f"{format_instant(delivery.made_at)}  attempts {delivery.attempt_count}{told}{again}"
    )
