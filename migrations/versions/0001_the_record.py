"""the record

Revision ID: 0001
Revises:
Create Date: 2026-11-25 16:58:22.928807
"""

import sqlalchemy as sa
from alembic import op

from app.record.base import UTC, Json

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


APPEND_ONLY = [
    "analysis",
    "attachment",
    "attachment_withdrawal",
    "attribution",
    "certificate",
    "coding_snapshot",
    "coding_write_back",
    "content",
    "dyno_session",
    "economy_trial",
    "fault_scan",
    "first_start",
    "flash",
    "identity_check",
    "identity_update",
    "inbox_item",
    "journal_entry",
    "layout",
    "map_delta",
    "package_return",
    "read_back",
    "release_package",
    "restore",
    "restore_abandonment",
    "restore_sign_off",
    "restore_step",
    "revision",
    "revision_decision",
    "run",
    "run_decision",
    "stock",
    "stock_read",
    "strip_run",
    "vehicle_limit",
]
NEVER_DELETED = ["control_unit", "customer", "dyno", "person", "vehicle", "visit"]
# What is unique in each of these tables: a REPLACE deletes the row that stands in its way.
KEYS: dict[str, list[tuple[str, ...]]] = {
    "analysis": [("id",)],
    "attachment": [("id",)],
    "attachment_withdrawal": [("attachment_id",), ("id",)],
    "attribution": [("id",)],
    "certificate": [("id",), ("restore_id",)],
    "coding_snapshot": [("id",)],
    "coding_write_back": [("id",)],
    "content": [("sha256",)],
    "control_unit": [("id",), ("vehicle_id", "role", "hardware_number")],
    "customer": [("id",)],
    "dyno": [("id",), ("name",)],
    "dyno_session": [("id",)],
    "economy_trial": [("id",)],
    "fault_scan": [("id",)],
    "first_start": [("flash_id",), ("id",)],
    "flash": [("id",)],
    "identity_check": [("id",)],
    "identity_update": [("id",)],
    "inbox_item": [("id",)],
    "journal_entry": [("hash",), ("seq",)],
    "layout": [("id",), ("name", "version")],
    "map_delta": [("analysis_id", "position"), ("id",)],
    "package_return": [("id",)],
    "person": [("id",), ("name",)],
    "read_back": [("id",)],
    "release_package": [("id",)],
    "restore": [("id",), ("vehicle_id", "number")],
    "restore_abandonment": [("id",), ("restore_id",)],
    "restore_sign_off": [("id",), ("restore_id", "by_id")],
    "restore_step": [("id",)],
    "revision": [("control_unit_id", "number"), ("id",)],
    "revision_decision": [("id",)],
    "run": [("id",)],
    "run_decision": [("id",)],
    "stock": [("control_unit_id", "generation"), ("id",)],
    "stock_read": [("id",)],
    "strip_run": [("id",)],
    "vehicle": [("id",), ("vin",)],
    "vehicle_limit": [("id",)],
    "visit": [("id",)],
}


def upgrade() -> None:
    op.create_table(
        "content",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("coding", sa.String(length=8), nullable=False),
        sa.Column("base_sha256", sa.String(length=64), nullable=True),
        sa.Column("depth", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.CheckConstraint("(coding = 'runs') = (base_sha256 is not null)", name=op.f("ck_content_base_for_runs")),
        sa.CheckConstraint("coding in ('raw', 'zstd', 'runs')", name=op.f("ck_content_coding")),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_content_sha256_length")),
        sa.CheckConstraint("size >= 0", name=op.f("ck_content_size")),
        sa.ForeignKeyConstraint(["base_sha256"], ["content.sha256"], name=op.f("fk_content_base_sha256")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_content")),
    )
    op.create_table(
        "customer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("contact", sa.String(), nullable=False),
        sa.Column("made_at", UTC(), nullable=False),
        sa.Column("erased_at", UTC(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer")),
    )
    op.create_table(
        "dyno",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("profile", Json, nullable=True),
        sa.Column("made_at", UTC(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dyno")),
        sa.UniqueConstraint("name", name=op.f("uq_dyno_name")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("failed_sign_ins", sa.Integer(), nullable=False),
        sa.Column("locked_until", UTC(), nullable=True),
        sa.Column("preferences", Json, nullable=False),
        sa.Column("made_at", UTC(), nullable=False),
        sa.CheckConstraint("role in ('tuner', 'front_desk', 'manager')", name=op.f("ck_person_role")),
        sa.CheckConstraint("length(name) > 0", name=op.f("ck_person_name_given")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("name", name=op.f("uq_person_name")),
    )
    op.create_table(
        "shop_setting",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("value", Json, nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_shop_setting")),
    )
    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("token_hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("made_at", UTC(), nullable=False),
        sa.Column("revoked_at", UTC(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_api_token_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_token")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_api_token_token_hash")),
    )
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_token_person_id"), ["person_id"], unique=False)

    op.create_table(
        "form_key",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("location", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_form_key_person_id")),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_form_key")),
    )
    op.create_table(
        "inbox_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=255), nullable=False),
        sa.Column("recorded_at", UTC(), nullable=False),
        sa.Column("summary", Json, nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_inbox_item_by_id")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_inbox_item_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inbox_item")),
    )
    with op.batch_alter_table("inbox_item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_inbox_item_sha256"), ["sha256"], unique=False)

    op.create_table(
        "layout",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("software_number", sa.String(length=60), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("original_sha256", sa.String(length=64), nullable=True),
        sa.Column("file_name", sa.String(length=255), nullable=True),
        sa.Column("source", sa.String(length=24), nullable=False),
        sa.Column("map_count", sa.Integer(), nullable=False),
        sa.Column("checksum_count", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("findings", Json, nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_layout_by_id")),
        sa.ForeignKeyConstraint(["original_sha256"], ["content.sha256"], name=op.f("fk_layout_original_sha256")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_layout_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layout")),
        sa.UniqueConstraint("name", "version", name=op.f("uq_layout_name_version")),
    )
    with op.batch_alter_table("layout", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_layout_software_number"), ["software_number"], unique=False)

    op.create_table(
        "one_time_key",
        sa.Column("token_hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("purpose", sa.String(length=16), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("expires_at", UTC(), nullable=False),
        sa.Column("used_at", UTC(), nullable=True),
        sa.CheckConstraint("purpose in ('first_manager', 'sign_in')", name=op.f("ck_one_time_key_purpose")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_one_time_key_person_id")),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_one_time_key")),
    )
    op.create_table(
        "sign_in",
        sa.Column("token_hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("made_at", UTC(), nullable=False),
        sa.Column("seen_at", UTC(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id")),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_sign_in")),
    )
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_person_id"), ["person_id"], unique=False)

    op.create_table(
        "vehicle",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("vin", sa.String(length=17), nullable=False),
        sa.Column("plate", sa.String(length=24), nullable=False),
        sa.Column("make", sa.String(length=60), nullable=False),
        sa.Column("model", sa.String(length=60), nullable=False),
        sa.Column("year", sa.Integer(), nullable=True),
        sa.Column("engine", sa.String(length=120), nullable=False),
        sa.Column("fuel", sa.String(length=16), nullable=False),
        sa.Column("boosted", sa.Boolean(), nullable=False),
        sa.Column("hybrid", sa.Boolean(), nullable=False),
        sa.Column("driven_axles", sa.String(length=8), nullable=False),
        sa.Column("rated_power_kw", sa.Double(), nullable=True),
        sa.Column("rated_torque_nm", sa.Double(), nullable=True),
        sa.Column("rated_standard", sa.String(length=40), nullable=True),
        sa.Column("test_mass_kg", sa.Double(), nullable=True),
        sa.Column("gear_ratios", Json, nullable=False),
        sa.Column("final_drive", sa.Double(), nullable=True),
        sa.Column("tyre", sa.String(length=40), nullable=False),
        sa.Column("tyre_radius_m", sa.Double(), nullable=True),
        sa.Column("legal_basis", sa.String(length=200), nullable=False),
        sa.Column("loses_coding", sa.Boolean(), nullable=False),
        sa.Column("search_text", sa.String(), nullable=False),
        sa.Column("pinned", sa.Boolean(), nullable=False),
        sa.Column("made_at", UTC(), nullable=False),
        sa.Column("changed_at", UTC(), nullable=False),
        sa.CheckConstraint("driven_axles in ('front', 'rear', 'all')", name=op.f("ck_vehicle_driven_axles")),
        sa.CheckConstraint(
            "fuel in ('petrol', 'diesel', 'ethanol', 'gas', 'electric', 'other')", name=op.f("ck_vehicle_fuel")
        ),
        sa.CheckConstraint("length(vin) = 17", name=op.f("ck_vehicle_vin_length")),
        sa.CheckConstraint(
            "rated_power_kw is null or rated_power_kw > 0", name=op.f("ck_vehicle_rated_power_positive")
        ),
        sa.CheckConstraint("test_mass_kg is null or test_mass_kg > 0", name=op.f("ck_vehicle_test_mass_positive")),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"], name=op.f("fk_vehicle_customer_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vehicle")),
        sa.UniqueConstraint("vin", name=op.f("uq_vehicle_vin")),
    )
    with op.batch_alter_table("vehicle", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_vehicle_customer_id"), ["customer_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_vehicle_plate"), ["plate"], unique=False)

    op.create_table(
        "attachment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=255), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("picture", sa.String(length=40), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_attachment_by_id")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_attachment_sha256")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_attachment_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attachment")),
    )
    with op.batch_alter_table("attachment", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_attachment_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "coding_snapshot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("occasion", sa.String(length=120), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("original_sha256", sa.String(length=64), nullable=True),
        sa.Column("file_name", sa.String(length=255), nullable=True),
        sa.Column("modules", sa.Integer(), nullable=False),
        sa.Column("keys", sa.Integer(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_coding_snapshot_by_id")),
        sa.ForeignKeyConstraint(
            ["original_sha256"], ["content.sha256"], name=op.f("fk_coding_snapshot_original_sha256")
        ),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_coding_snapshot_sha256")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_coding_snapshot_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coding_snapshot")),
    )
    with op.batch_alter_table("coding_snapshot", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_coding_snapshot_digest"), ["digest"], unique=False)
        batch_op.create_index(batch_op.f("ix_coding_snapshot_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "control_unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("hardware_number", sa.String(length=60), nullable=False),
        sa.Column("software_number", sa.String(length=60), nullable=False),
        sa.Column("calibration_ids", Json, nullable=False),
        sa.Column("cvns", Json, nullable=False),
        sa.Column("base_address", sa.BigInteger(), nullable=False),
        sa.Column("made_at", UTC(), nullable=False),
        sa.CheckConstraint(
            "role in ('engine', 'transmission', 'hybrid drive', 'body', 'other')", name=op.f("ck_control_unit_role")
        ),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_control_unit_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_control_unit")),
        sa.UniqueConstraint(
            "vehicle_id", "role", "hardware_number", name=op.f("uq_control_unit_vehicle_id_role_hardware_number")
        ),
    )
    with op.batch_alter_table("control_unit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_control_unit_software_number"), ["software_number"], unique=False)
        batch_op.create_index(batch_op.f("ix_control_unit_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "dyno_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("dyno_id", sa.Integer(), nullable=False),
        sa.Column("measured_at", UTC(), nullable=False),
        sa.Column("purpose", sa.String(length=16), nullable=False),
        sa.Column("correction_standard", sa.String(length=24), nullable=False),
        sa.Column("pressure_hpa", sa.Double(), nullable=True),
        sa.Column("temperature_c", sa.Double(), nullable=True),
        sa.Column("relative_humidity_percent", sa.Double(), nullable=True),
        sa.Column("gear", sa.String(length=24), nullable=False),
        sa.Column("drive_mode", sa.String(length=40), nullable=False),
        sa.Column("driven_axles", sa.String(length=8), nullable=False),
        sa.Column("tyre", sa.String(length=40), nullable=False),
        sa.Column("tyre_pressure_bar", sa.Double(), nullable=True),
        sa.Column("fuel", sa.String(length=80), nullable=False),
        sa.Column("start_coolant_c", sa.Double(), nullable=True),
        sa.Column("start_intake_c", sa.Double(), nullable=True),
        sa.Column("battery_soc_percent", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "purpose in ('baseline', 'measurement', 'verification')", name=op.f("ck_dyno_session_purpose")
        ),
        sa.CheckConstraint(
            "battery_soc_percent is null or battery_soc_percent between 0 and 100", name=op.f("ck_dyno_session_soc")
        ),
        sa.CheckConstraint(
            "pressure_hpa is null or pressure_hpa between 300 and 1200", name=op.f("ck_dyno_session_pressure")
        ),
        sa.CheckConstraint(
            "relative_humidity_percent is null or relative_humidity_percent between 0 and 100",
            name=op.f("ck_dyno_session_humidity"),
        ),
        sa.CheckConstraint(
            "temperature_c is null or temperature_c between -60 and 70", name=op.f("ck_dyno_session_temperature")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_dyno_session_by_id")),
        sa.ForeignKeyConstraint(["dyno_id"], ["dyno.id"], name=op.f("fk_dyno_session_dyno_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_dyno_session_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dyno_session")),
    )
    with op.batch_alter_table("dyno_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_dyno_session_dyno_id"), ["dyno_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dyno_session_measured_at"), ["measured_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_dyno_session_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "economy_trial",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("driven_at", UTC(), nullable=False),
        sa.Column("distance_km", sa.Double(), nullable=False),
        sa.Column("fuel_l", sa.Double(), nullable=False),
        sa.Column("conditions", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("distance_km > 0 and fuel_l > 0", name=op.f("ck_economy_trial_amounts")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_economy_trial_by_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_economy_trial_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_economy_trial")),
    )
    with op.batch_alter_table("economy_trial", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_economy_trial_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "fault_scan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("occasion", sa.String(length=120), nullable=False),
        sa.Column("faults", Json, nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("readiness", Json, nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_fault_scan_by_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_fault_scan_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fault_scan")),
    )
    with op.batch_alter_table("fault_scan", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_fault_scan_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "journal_entry",
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("action", sa.String(length=60), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("vehicle_id", sa.Integer(), nullable=True),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("previous_hash", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_journal_entry_person_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_journal_entry_vehicle_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_journal_entry")),
        sa.UniqueConstraint("hash", name=op.f("uq_journal_entry_hash")),
    )
    with op.batch_alter_table("journal_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_journal_entry_action"), ["action"], unique=False)
        batch_op.create_index(batch_op.f("ix_journal_entry_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "strip_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("run_at", UTC(), nullable=False),
        sa.Column("place", sa.String(length=120), nullable=False),
        sa.Column("how", sa.String(length=40), nullable=False),
        sa.Column("results", Json, nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_strip_run_by_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_strip_run_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strip_run")),
    )
    with op.batch_alter_table("strip_run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_strip_run_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "vehicle_limit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(length=40), nullable=False),
        sa.Column("bound", sa.String(length=4), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("speed_lo_rpm", sa.Double(), nullable=True),
        sa.Column("speed_hi_rpm", sa.Double(), nullable=True),
        sa.Column("load_lo_percent", sa.Double(), nullable=True),
        sa.Column("load_hi_percent", sa.Double(), nullable=True),
        sa.Column("severity", sa.String(length=8), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("bound in ('max', 'min')", name=op.f("ck_vehicle_limit_bound")),
        sa.CheckConstraint("severity in ('stop', 'watch')", name=op.f("ck_vehicle_limit_severity")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_vehicle_limit_by_id")),
        sa.ForeignKeyConstraint(["supersedes_id"], ["vehicle_limit.id"], name=op.f("fk_vehicle_limit_supersedes_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_vehicle_limit_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vehicle_limit")),
    )
    with op.batch_alter_table("vehicle_limit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_vehicle_limit_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("odometer_km", sa.Double(), nullable=True),
        sa.Column("arrived_at", UTC(), nullable=False),
        sa.Column("left_at", UTC(), nullable=True),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("odometer_km is null or odometer_km >= 0", name=op.f("ck_visit_odometer")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_visit_by_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_visit_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
    )
    with op.batch_alter_table("visit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_visit_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "attachment_withdrawal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("attachment_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(reason) > 0", name=op.f("ck_attachment_withdrawal_withdrawal_needs_reason")),
        sa.ForeignKeyConstraint(
            ["attachment_id"], ["attachment.id"], name=op.f("fk_attachment_withdrawal_attachment_id")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_attachment_withdrawal_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attachment_withdrawal")),
        sa.UniqueConstraint("attachment_id", name=op.f("uq_attachment_withdrawal_attachment_id")),
    )
    op.create_table(
        "identity_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("scanned", Json, nullable=False),
        sa.Column("fields", Json, nullable=False),
        sa.Column("matches", sa.Boolean(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_identity_check_by_id")),
        sa.ForeignKeyConstraint(
            ["control_unit_id"], ["control_unit.id"], name=op.f("fk_identity_check_control_unit_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_identity_check")),
    )
    with op.batch_alter_table("identity_check", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_identity_check_control_unit_id"), ["control_unit_id"], unique=False)

    op.create_table(
        "identity_update",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("before", Json, nullable=False),
        sa.Column("after", Json, nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_identity_update_by_id")),
        sa.ForeignKeyConstraint(
            ["control_unit_id"], ["control_unit.id"], name=op.f("fk_identity_update_control_unit_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_identity_update")),
    )
    with op.batch_alter_table("identity_update", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_identity_update_control_unit_id"), ["control_unit_id"], unique=False)

    op.create_table(
        "restore",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("two_sign_offs", sa.Boolean(), nullable=False),
        sa.Column("margin_percent", sa.Double(), nullable=False),
        sa.Column("coding_snapshot_id", sa.Integer(), nullable=True),
        sa.Column("baseline_session_id", sa.Integer(), nullable=True),
        sa.Column("steps", Json, nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["baseline_session_id"], ["dyno_session.id"], name=op.f("fk_restore_baseline_session_id")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_restore_by_id")),
        sa.ForeignKeyConstraint(
            ["coding_snapshot_id"], ["coding_snapshot.id"], name=op.f("fk_restore_coding_snapshot_id")
        ),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_restore_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restore")),
        sa.UniqueConstraint("vehicle_id", "number", name=op.f("uq_restore_vehicle_id_number")),
    )
    with op.batch_alter_table("restore", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_restore_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("dyno_session_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("inbox_item_id", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=255), nullable=False),
        sa.Column("columns", Json, nullable=False),
        sa.Column("channels", sa.LargeBinary(), nullable=False),
        sa.Column("start_coolant_c", sa.Double(), nullable=True),
        sa.Column("start_intake_c", sa.Double(), nullable=True),
        sa.Column("battery_soc_percent", sa.Double(), nullable=True),
        sa.Column("findings", Json, nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_run_by_id")),
        sa.ForeignKeyConstraint(["dyno_session_id"], ["dyno_session.id"], name=op.f("fk_run_dyno_session_id")),
        sa.ForeignKeyConstraint(["inbox_item_id"], ["inbox_item.id"], name=op.f("fk_run_inbox_item_id")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_run_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run")),
    )
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_dyno_session_id"), ["dyno_session_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_run_inbox_item_id"), ["inbox_item_id"], unique=False)

    op.create_table(
        "stock_read",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("generation", sa.Integer(), nullable=False),
        sa.Column("layout_id", sa.Integer(), nullable=True),
        sa.Column("checksums", Json, nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("spans", Json, nullable=True),
        sa.Column("crc32", sa.BigInteger(), nullable=True),
        sa.Column("size", sa.BigInteger(), nullable=True),
        sa.Column("file_format", sa.String(length=16), nullable=True),
        sa.Column("file_name", sa.String(length=255), nullable=True),
        sa.Column("original_sha256", sa.String(length=64), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_stock_read_by_id")),
        sa.ForeignKeyConstraint(["control_unit_id"], ["control_unit.id"], name=op.f("fk_stock_read_control_unit_id")),
        sa.ForeignKeyConstraint(["layout_id"], ["layout.id"], name=op.f("fk_stock_read_layout_id")),
        sa.ForeignKeyConstraint(["original_sha256"], ["content.sha256"], name=op.f("fk_stock_read_original_sha256")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_stock_read_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_read")),
    )
    with op.batch_alter_table("stock_read", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stock_read_control_unit_id"), ["control_unit_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_read_sha256"), ["sha256"], unique=False)

    op.create_table(
        "certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("restore_id", sa.Integer(), nullable=False),
        sa.Column("body", Json, nullable=False),
        sa.Column("journal_seq", sa.Integer(), nullable=False),
        sa.Column("journal_hash", sa.String(length=64), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_certificate_by_id")),
        sa.ForeignKeyConstraint(["restore_id"], ["restore.id"], name=op.f("fk_certificate_restore_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_certificate")),
        sa.UniqueConstraint("restore_id", name=op.f("uq_certificate_restore_id")),
    )
    op.create_table(
        "restore_abandonment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("restore_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(reason) > 0", name=op.f("ck_restore_abandonment_abandonment_needs_reason")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_restore_abandonment_by_id")),
        sa.ForeignKeyConstraint(["restore_id"], ["restore.id"], name=op.f("fk_restore_abandonment_restore_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restore_abandonment")),
        sa.UniqueConstraint("restore_id", name=op.f("uq_restore_abandonment_restore_id")),
    )
    op.create_table(
        "restore_sign_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("restore_id", sa.Integer(), nullable=False),
        sa.Column("statement", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_restore_sign_off_by_id")),
        sa.ForeignKeyConstraint(["restore_id"], ["restore.id"], name=op.f("fk_restore_sign_off_restore_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restore_sign_off")),
        sa.UniqueConstraint("restore_id", "by_id", name=op.f("uq_restore_sign_off_restore_id_by_id")),
    )
    with op.batch_alter_table("restore_sign_off", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_restore_sign_off_restore_id"), ["restore_id"], unique=False)

    op.create_table(
        "restore_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("restore_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("details", Json, nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("evidence", Json, nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "outcome <> 'overridden' or length(reason) > 0", name=op.f("ck_restore_step_override_needs_reason")
        ),
        sa.CheckConstraint(
            "outcome in ('verified', 'failed', 'not verified', 'overridden')", name=op.f("ck_restore_step_outcome")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_restore_step_by_id")),
        sa.ForeignKeyConstraint(["restore_id"], ["restore.id"], name=op.f("fk_restore_step_restore_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restore_step")),
    )
    with op.batch_alter_table("restore_step", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_restore_step_restore_id"), ["restore_id"], unique=False)

    op.create_table(
        "run_decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("included", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_run_decision_by_id")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_run_decision_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_decision")),
    )
    with op.batch_alter_table("run_decision", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_decision_run_id"), ["run_id"], unique=False)

    op.create_table(
        "stock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("generation", sa.Integer(), nullable=False),
        sa.Column("first_read_id", sa.Integer(), nullable=False),
        sa.Column("second_read_id", sa.Integer(), nullable=False),
        sa.Column("software_number", sa.String(length=60), nullable=False),
        sa.Column("layout_id", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("spans", Json, nullable=True),
        sa.Column("crc32", sa.BigInteger(), nullable=True),
        sa.Column("size", sa.BigInteger(), nullable=True),
        sa.Column("file_format", sa.String(length=16), nullable=True),
        sa.Column("file_name", sa.String(length=255), nullable=True),
        sa.Column("original_sha256", sa.String(length=64), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_stock_by_id")),
        sa.ForeignKeyConstraint(["control_unit_id"], ["control_unit.id"], name=op.f("fk_stock_control_unit_id")),
        sa.ForeignKeyConstraint(["first_read_id"], ["stock_read.id"], name=op.f("fk_stock_first_read_id")),
        sa.ForeignKeyConstraint(["layout_id"], ["layout.id"], name=op.f("fk_stock_layout_id")),
        sa.ForeignKeyConstraint(["original_sha256"], ["content.sha256"], name=op.f("fk_stock_original_sha256")),
        sa.ForeignKeyConstraint(["second_read_id"], ["stock_read.id"], name=op.f("fk_stock_second_read_id")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_stock_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock")),
        sa.UniqueConstraint("control_unit_id", "generation", name=op.f("uq_stock_control_unit_id_generation")),
    )
    with op.batch_alter_table("stock", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stock_control_unit_id"), ["control_unit_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_sha256"), ["sha256"], unique=False)

    op.create_table(
        "revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("parent_id", sa.Integer(), nullable=True),
        sa.Column("stock_id", sa.Integer(), nullable=True),
        sa.Column("title", sa.String(length=120), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("fuel_requirement", sa.String(length=80), nullable=False),
        sa.Column("hardware_requirement", sa.String(length=200), nullable=False),
        sa.Column("ported_from_id", sa.Integer(), nullable=True),
        sa.Column("port_report", Json, nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("spans", Json, nullable=True),
        sa.Column("crc32", sa.BigInteger(), nullable=True),
        sa.Column("size", sa.BigInteger(), nullable=True),
        sa.Column("file_format", sa.String(length=16), nullable=True),
        sa.Column("file_name", sa.String(length=255), nullable=True),
        sa.Column("original_sha256", sa.String(length=64), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("(kind = 'by hand') = (sha256 is null)", name=op.f("ck_revision_image_unless_by_hand")),
        sa.CheckConstraint("kind in ('image', 'by hand', 'ported')", name=op.f("ck_revision_kind")),
        sa.CheckConstraint("length(title) > 0", name=op.f("ck_revision_title_given")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_revision_by_id")),
        sa.ForeignKeyConstraint(["control_unit_id"], ["control_unit.id"], name=op.f("fk_revision_control_unit_id")),
        sa.ForeignKeyConstraint(["original_sha256"], ["content.sha256"], name=op.f("fk_revision_original_sha256")),
        sa.ForeignKeyConstraint(["parent_id"], ["revision.id"], name=op.f("fk_revision_parent_id")),
        sa.ForeignKeyConstraint(["ported_from_id"], ["revision.id"], name=op.f("fk_revision_ported_from_id")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_revision_sha256")),
        sa.ForeignKeyConstraint(["stock_id"], ["stock.id"], name=op.f("fk_revision_stock_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sa.UniqueConstraint("control_unit_id", "number", name=op.f("uq_revision_control_unit_id_number")),
    )
    with op.batch_alter_table("revision", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_revision_control_unit_id"), ["control_unit_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_revision_parent_id"), ["parent_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_revision_sha256"), ["sha256"], unique=False)

    op.create_table(
        "analysis",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("layout_id", sa.Integer(), nullable=True),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("changed_bytes", sa.Integer(), nullable=False),
        sa.Column("explained_bytes", sa.Integer(), nullable=False),
        sa.Column("checksum_bytes", sa.Integer(), nullable=False),
        sa.Column("unexplained_bytes", sa.Integer(), nullable=False),
        sa.Column("unexplained", Json, nullable=False),
        sa.Column("checksums", Json, nullable=False),
        sa.Column("warnings", Json, nullable=False),
        sa.Column("map_count", sa.Integer(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_analysis_by_id")),
        sa.ForeignKeyConstraint(["layout_id"], ["layout.id"], name=op.f("fk_analysis_layout_id")),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_analysis_revision_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_analysis")),
    )
    with op.batch_alter_table("analysis", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_analysis_revision_id"), ["revision_id"], unique=False)

    op.create_table(
        "attribution",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("dyno_session_id", sa.Integer(), nullable=True),
        sa.Column("strip_run_id", sa.Integer(), nullable=True),
        sa.Column("economy_trial_id", sa.Integer(), nullable=True),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(case when dyno_session_id is null then 0 else 1 end) + (case when strip_run_id is null then 0 else 1 end) + (case when economy_trial_id is null then 0 else 1 end) = 1",
            name=op.f("ck_attribution_one_result"),
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_attribution_by_id")),
        sa.ForeignKeyConstraint(["control_unit_id"], ["control_unit.id"], name=op.f("fk_attribution_control_unit_id")),
        sa.ForeignKeyConstraint(["dyno_session_id"], ["dyno_session.id"], name=op.f("fk_attribution_dyno_session_id")),
        sa.ForeignKeyConstraint(
            ["economy_trial_id"], ["economy_trial.id"], name=op.f("fk_attribution_economy_trial_id")
        ),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_attribution_revision_id")),
        sa.ForeignKeyConstraint(["strip_run_id"], ["strip_run.id"], name=op.f("fk_attribution_strip_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attribution")),
    )
    with op.batch_alter_table("attribution", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_attribution_control_unit_id"), ["control_unit_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_attribution_dyno_session_id"), ["dyno_session_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_attribution_economy_trial_id"), ["economy_trial_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_attribution_revision_id"), ["revision_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_attribution_strip_run_id"), ["strip_run_id"], unique=False)

    op.create_table(
        "flash",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("control_unit_id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=True),
        sa.Column("stock_id", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("flashed_at", UTC(), nullable=False),
        sa.Column("supply_before_v", sa.Double(), nullable=True),
        sa.Column("supply_lowest_v", sa.Double(), nullable=True),
        sa.Column("outcome", sa.String(length=12), nullable=False),
        sa.Column("checksums", Json, nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("outcome in ('completed', 'failed', 'aborted')", name=op.f("ck_flash_outcome")),
        sa.CheckConstraint("(revision_id is null) <> (stock_id is null)", name=op.f("ck_flash_one_subject")),
        sa.CheckConstraint(
            "supply_before_v is null or supply_before_v between 0 and 60", name=op.f("ck_flash_supply_before")
        ),
        sa.CheckConstraint(
            "supply_lowest_v is null or supply_lowest_v between 0 and 60", name=op.f("ck_flash_supply_lowest")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_flash_by_id")),
        sa.ForeignKeyConstraint(["control_unit_id"], ["control_unit.id"], name=op.f("fk_flash_control_unit_id")),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_flash_revision_id")),
        sa.ForeignKeyConstraint(["stock_id"], ["stock.id"], name=op.f("fk_flash_stock_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_flash")),
    )
    with op.batch_alter_table("flash", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_flash_control_unit_id"), ["control_unit_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_flash_revision_id"), ["revision_id"], unique=False)

    op.create_table(
        "revision_decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(length=12), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("legal_basis", sa.String(), nullable=False),
        sa.Column("limits_reason", sa.String(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("decision in ('kept', 'released', 'withdrawn')", name=op.f("ck_revision_decision_decision")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_revision_decision_by_id")),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_revision_decision_revision_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision_decision")),
    )
    with op.batch_alter_table("revision_decision", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_revision_decision_revision_id"), ["revision_id"], unique=False)

    op.create_table(
        "coding_write_back",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flash_id", sa.Integer(), nullable=False),
        sa.Column("wanted_snapshot_id", sa.Integer(), nullable=True),
        sa.Column("read_snapshot_id", sa.Integer(), nullable=True),
        sa.Column("equal", sa.Boolean(), nullable=False),
        sa.Column("differences", Json, nullable=False),
        sa.Column("waiver_reason", sa.String(), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "waiver_reason is not null or read_snapshot_id is not null",
            name=op.f("ck_coding_write_back_evidence_or_waiver"),
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_coding_write_back_by_id")),
        sa.ForeignKeyConstraint(["flash_id"], ["flash.id"], name=op.f("fk_coding_write_back_flash_id")),
        sa.ForeignKeyConstraint(
            ["read_snapshot_id"], ["coding_snapshot.id"], name=op.f("fk_coding_write_back_read_snapshot_id")
        ),
        sa.ForeignKeyConstraint(
            ["wanted_snapshot_id"], ["coding_snapshot.id"], name=op.f("fk_coding_write_back_wanted_snapshot_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coding_write_back")),
    )
    with op.batch_alter_table("coding_write_back", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_coding_write_back_flash_id"), ["flash_id"], unique=False)

    op.create_table(
        "first_start",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flash_id", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("coding_was_pending", sa.Boolean(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_first_start_by_id")),
        sa.ForeignKeyConstraint(["flash_id"], ["flash.id"], name=op.f("fk_first_start_flash_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_first_start")),
        sa.UniqueConstraint("flash_id", name=op.f("uq_first_start_flash_id")),
    )
    op.create_table(
        "map_delta",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("analysis_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("category", sa.String(length=24), nullable=False),
        sa.Column("unit", sa.String(length=40), nullable=False),
        sa.Column("summary", Json, nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["analysis_id"], ["analysis.id"], name=op.f("fk_map_delta_analysis_id")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_map_delta_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_map_delta")),
        sa.UniqueConstraint("analysis_id", "position", name=op.f("uq_map_delta_analysis_id_position")),
    )
    with op.batch_alter_table("map_delta", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_map_delta_analysis_id"), ["analysis_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_map_delta_name"), ["name"], unique=False)

    op.create_table(
        "read_back",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flash_id", sa.Integer(), nullable=False),
        sa.Column("equal", sa.Boolean(), nullable=False),
        sa.Column("differences", Json, nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("spans", Json, nullable=True),
        sa.Column("crc32", sa.BigInteger(), nullable=True),
        sa.Column("size", sa.BigInteger(), nullable=True),
        sa.Column("file_format", sa.String(length=16), nullable=True),
        sa.Column("file_name", sa.String(length=255), nullable=True),
        sa.Column("original_sha256", sa.String(length=64), nullable=True),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_read_back_by_id")),
        sa.ForeignKeyConstraint(["flash_id"], ["flash.id"], name=op.f("fk_read_back_flash_id")),
        sa.ForeignKeyConstraint(["original_sha256"], ["content.sha256"], name=op.f("fk_read_back_original_sha256")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_read_back_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_read_back")),
    )
    with op.batch_alter_table("read_back", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_read_back_flash_id"), ["flash_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_read_back_sha256"), ["sha256"], unique=False)

    op.create_table(
        "release_package",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("decision_id", sa.Integer(), nullable=False),
        sa.Column("format", sa.String(length=8), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=255), nullable=False),
        sa.Column("coding_snapshot_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.CheckConstraint("format in ('bin', 'hex', 'srec')", name=op.f("ck_release_package_format")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_release_package_by_id")),
        sa.ForeignKeyConstraint(
            ["coding_snapshot_id"], ["coding_snapshot.id"], name=op.f("fk_release_package_coding_snapshot_id")
        ),
        sa.ForeignKeyConstraint(["decision_id"], ["revision_decision.id"], name=op.f("fk_release_package_decision_id")),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_release_package_revision_id")),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name=op.f("fk_release_package_sha256")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_release_package")),
    )
    with op.batch_alter_table("release_package", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_release_package_revision_id"), ["revision_id"], unique=False)

    op.create_table(
        "package_return",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("package_id", sa.Integer(), nullable=False),
        sa.Column("flash_id", sa.Integer(), nullable=False),
        sa.Column("read_back_id", sa.Integer(), nullable=True),
        sa.Column("coding_write_back_id", sa.Integer(), nullable=True),
        sa.Column("fault_scan_id", sa.Integer(), nullable=True),
        sa.Column("attachment_ids", Json, nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("at", UTC(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("entry_seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_package_return_by_id")),
        sa.ForeignKeyConstraint(
            ["coding_write_back_id"], ["coding_write_back.id"], name=op.f("fk_package_return_coding_write_back_id")
        ),
        sa.ForeignKeyConstraint(["fault_scan_id"], ["fault_scan.id"], name=op.f("fk_package_return_fault_scan_id")),
        sa.ForeignKeyConstraint(["flash_id"], ["flash.id"], name=op.f("fk_package_return_flash_id")),
        sa.ForeignKeyConstraint(["package_id"], ["release_package.id"], name=op.f("fk_package_return_package_id")),
        sa.ForeignKeyConstraint(["read_back_id"], ["read_back.id"], name=op.f("fk_package_return_read_back_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_package_return")),
    )
    with op.batch_alter_table("package_return", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_package_return_package_id"), ["package_id"], unique=False)
    guard()
    index_search()


def index_search() -> None:
    """What finds a vehicle by any three characters; no table describes it (app/record/search_index.py)."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "create function trigrams(given text) returns text[] immutable strict parallel safe language sql as "
            "$$ select array(select distinct substr(given, i, 3) from generate_series(1, length(given) - 2) i) $$"
        )
        op.execute("create index ix_vehicle_trigrams on vehicle using gin (trigrams(search_text))")
        return
    op.execute(
        "create virtual table vehicle_search using fts5(search_text, content='vehicle', content_rowid='id', "
        "tokenize='trigram case_sensitive 1', detail='none', columnsize=0)"
    )
    # What is erased must be gone from the index too, and not wait for a merge.
    op.execute("insert into vehicle_search(vehicle_search, rank) values ('secure-delete', 1)")
    op.execute(
        "create trigger vehicle_search_insert after insert on vehicle begin "
        "insert into vehicle_search(rowid, search_text) values (new.id, new.search_text); end"
    )
    op.execute(
        "create trigger vehicle_search_update after update of search_text on vehicle "
        "when old.search_text <> new.search_text begin "
        "insert into vehicle_search(vehicle_search, rowid, search_text) values ('delete', old.id, old.search_text); "
        "insert into vehicle_search(rowid, search_text) values (new.id, new.search_text); end"
    )


def guard() -> None:
    """Triggers that refuse UPDATE and DELETE, and a gap in the journal."""
    if op.get_bind().dialect.name == "postgresql":
        guard_postgresql()
    else:
        guard_sqlite()


def guard_sqlite() -> None:
    for table in APPEND_ONLY:
        for verb in ("update", "delete"):
            op.execute(
                f"create trigger {table}_no_{verb} before {verb} on {table} "
                f"begin select raise(abort, '{table} is append-only'); end"
            )
    for table in NEVER_DELETED:
        op.execute(
            f"create trigger {table}_no_delete before delete on {table} "
            f"begin select raise(abort, '{table} rows are never deleted'); end"
        )
    for table, keys in KEYS.items():
        # REPLACE deletes without firing delete triggers: a row that is there already is refused on insert.
        same = " or ".join("(" + " and ".join(f"{c} = new.{c}" for c in key) + ")" for key in keys)
        op.execute(
            f"create trigger {table}_no_replace before insert on {table} "
            f"when exists (select 1 from {table} where {same}) "
            f"begin select raise(abort, '{table} has this row already'); end"
        )
    op.execute(
        "create trigger journal_entry_dense before insert on journal_entry "
        "when new.seq <> (select coalesce(max(seq), 0) + 1 from journal_entry) "
        "begin select raise(abort, 'the journal has no gaps'); end"
    )


def guard_postgresql() -> None:
    op.execute(
        "create function refuse_change() returns trigger language plpgsql as $$ begin "
        "raise exception '% is append-only', tg_table_name using errcode = 'integrity_constraint_violation'; "
        "end $$"
    )
    for table in APPEND_ONLY:
        op.execute(
            f"create trigger {table}_append_only before update or delete on {table} "
            "for each row execute function refuse_change()"
        )
        op.execute(
            f"create trigger {table}_no_truncate before truncate on {table} "
            "for each statement execute function refuse_change()"
        )
    for table in NEVER_DELETED:
        op.execute(
            f"create trigger {table}_no_delete before delete on {table} for each row execute function refuse_change()"
        )
    op.execute(
        "create function journal_dense() returns trigger language plpgsql as $$ begin "
        "if new.seq <> (select coalesce(max(seq), 0) + 1 from journal_entry) then "
        "raise exception 'the journal has no gaps' using errcode = 'integrity_constraint_violation'; end if; "
        "return new; end $$"
    )
    op.execute(
        "create trigger journal_entry_dense before insert on journal_entry "
        "for each row execute function journal_dense()"
    )


def downgrade() -> None:
    raise RuntimeError("The record only goes forward; recover a backup instead.")
