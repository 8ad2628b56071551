"""Operations on access keys."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from ..actions import access
from ..core.errors import OutOfReach
from ..core.records import Caller
from .operation import Link, Operation
from .schemas_common import Paging
from .schemas_keys import KeyPageSchema, KeySchema, KeyWithSecretSchema, NewKeySchema

TAG = "Keys"
KEY = {
    "key_id": "Qm3xT9Lk",
    "name": "scale at the left bar",
    "scopes": ["runs:write", "read"],
    "site_ids": [],
    "grinder_ids": ["bar-1"],
    "last_four": "7cQz",
    "created_at": "2026-07-01T06:10:00.000Z",
    "expires_at": None,
    "revoked_at": None,
    "last_used_at": None,
}


def create_key(
    database: Any, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> dict[str, Any]:
    key, secret = access.create_key(database, caller, now=now, **fields)
    shown = {member.name: getattr(key, member.name) for member in dataclasses.fields(key)}
    return {**shown, "secret": secret}


OPERATIONS = (
    Operation(
        name="create_key",
        method="POST",
        path="/v1/keys",
        tag=TAG,
        summary="Make a key",
        description=(
            "A key with its secret, shown this once. No key can give more than it holds itself: "
            "neither scopes nor sites nor grinders."
        ),
        act=create_key,
        scope="keys",
        takes=NewKeySchema,
        gives=KeyWithSecretSchema,
        status=201,
        refuses=(OutOfReach,),
        links=(Link("revoke_key", {"key_id": "$response.body#/key_id"}),),
        takes_example={
            "name": "scale at the left bar",
            "scopes": ["runs:write", "read"],
            "grinder_ids": ["bar-1"],
        },
        gives_example={
            **KEY,
            "secret": "burrline_Qm3xT9Lk(33 letters and digits, then a checksum)7cQz",
        },
    ),
    Operation(
        name="list_keys",
        method="GET",
        path="/v1/keys",
        tag=TAG,
        summary="List keys",
        description="Every key within this key's own bounds, revoked ones too; never a secret.",
        act=access.list_keys,
        scope="keys",
        query=Paging,
        gives=KeyPageSchema,
        is_list=True,
        gives_example={"items": [KEY], "next_cursor": None},
    ),
    Operation(
        name="revoke_key",
        method="DELETE",
        path="/v1/keys/<key_id>",
        tag=TAG,
        summary="Revoke a key",
        description=(
            "From now on the key is refused; it stays in the list. Revoking it again changes "
            "nothing."
        ),
        act=access.revoke_key,
        scope="keys",
        gives=KeySchema,
        gives_example={**KEY, "revoked_at": "2026-07-08T12:00:00.000Z"},
    ),
)
