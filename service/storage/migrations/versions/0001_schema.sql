-- The tables, what they refer to, and their indexes. A constraint's name says its kind, its table and its columns.

CREATE TABLE project (
    id uuid,
    code varchar NOT NULL,
    name varchar NOT NULL,
    owner varchar NOT NULL,
    contractor varchar NOT NULL,
    created_at timestamptz NOT NULL,
    CONSTRAINT pk_project PRIMARY KEY (id),
    CONSTRAINT uq_project_code UNIQUE (code)
);

CREATE TABLE record_fibre (
    project_id uuid, route_id uuid, fibre integer, record_id uuid,
    CONSTRAINT pk_record_fibre PRIMARY KEY (project_id, route_id, fibre, record_id)
);

CREATE TABLE submission_record (
    project_id uuid, submission_id uuid, record_id uuid,
    is_ended boolean NOT NULL,
    is_annulled boolean DEFAULT false NOT NULL,
    CONSTRAINT pk_submission_record PRIMARY KEY (project_id, submission_id, record_id)
);

CREATE TABLE token (
    id uuid,
    kind varchar NOT NULL,
    token_sha256 varchar NOT NULL,
    prefix varchar NOT NULL DEFAULT '',
    holder varchar,
    created_at timestamptz NOT NULL,
    expires_at timestamptz,
    revoked_at timestamptz,
    CONSTRAINT pk_token PRIMARY KEY (id),
    CONSTRAINT uq_token_token_sha256 UNIQUE (token_sha256)
);

CREATE TABLE audit_entry (
    project_id uuid, sequence bigint,
    entry text NOT NULL,
    previous_hash varchar NOT NULL,
    hash varchar NOT NULL,
    CONSTRAINT pk_audit_entry PRIMARY KEY (project_id, sequence),
    CONSTRAINT fk_audit_entry_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE criteria_version (
    project_id uuid, version integer,
    document text NOT NULL,
    sha256 varchar NOT NULL,
    created_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_criteria_version PRIMARY KEY (project_id, version),
    CONSTRAINT fk_criteria_version_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE evidence_file (
    project_id uuid, sha256 varchar,
    size_bytes bigint NOT NULL,
    media_type varchar NOT NULL,
    received_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_evidence_file PRIMARY KEY (project_id, sha256),
    CONSTRAINT fk_evidence_file_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE job (
    id uuid,
    project_id uuid NOT NULL,
    kind varchar NOT NULL,
    subject_id uuid NOT NULL,
    state varchar NOT NULL,
    due_at timestamptz NOT NULL,
    leased_until timestamptz,
    hinted_at timestamptz,
    fence bigint NOT NULL,
    attempts integer NOT NULL,
    outage_since timestamptz,
    last_error text,
    CONSTRAINT pk_job PRIMARY KEY (id),
    CONSTRAINT ck_job_state CHECK (state IN ('idle', 'due', 'leased', 'done', 'parked', 'waiting')),
    CONSTRAINT fk_job_project_id FOREIGN KEY (project_id) REFERENCES project,
    CONSTRAINT uq_job_kind_subject_id UNIQUE (kind, subject_id)
);
CREATE INDEX ix_job_open ON job (due_at) WHERE state IN ('due', 'leased', 'waiting');

CREATE TABLE notice (
    project_id uuid, sequence bigint,
    id uuid NOT NULL,
    type varchar NOT NULL,
    route_id uuid NOT NULL,
    segment_id varchar NOT NULL,
    acceptance_number integer NOT NULL,
    body text NOT NULL,
    CONSTRAINT pk_notice PRIMARY KEY (project_id, sequence),
    CONSTRAINT fk_notice_project_id FOREIGN KEY (project_id) REFERENCES project,
    CONSTRAINT uq_notice_project_id_route_id_segment_id_acceptance_number_type
        UNIQUE (project_id, route_id, segment_id, acceptance_number, type)
);

CREATE TABLE person (
    project_id uuid, id varchar,
    name varchar NOT NULL,
    role varchar NOT NULL,
    CONSTRAINT pk_person PRIMARY KEY (project_id, id),
    CONSTRAINT fk_person_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE person_certificate (
    project_id uuid, sha256 varchar,
    person_id varchar NOT NULL,
    subject text,
    pem text,
    valid_from timestamptz NOT NULL,
    valid_until timestamptz NOT NULL,
    registered_at timestamptz NOT NULL,
    retired_at timestamptz,
    token_id uuid NOT NULL,
    CONSTRAINT pk_person_certificate PRIMARY KEY (project_id, sha256),
    CONSTRAINT fk_person_certificate_project_id FOREIGN KEY (project_id) REFERENCES project
);
CREATE INDEX ix_person_certificate_project_id_person_id ON person_certificate (project_id, person_id);

CREATE TABLE person_side (
    project_id uuid, person_id varchar,
    side varchar NOT NULL,
    CONSTRAINT pk_person_side PRIMARY KEY (project_id, person_id),
    CONSTRAINT fk_person_side_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE project_head (
    project_id uuid,
    notice_sequence bigint NOT NULL,
    audit_sequence bigint NOT NULL,
    audit_hash varchar NOT NULL,
    CONSTRAINT pk_project_head PRIMARY KEY (project_id),
    CONSTRAINT fk_project_head_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE route (
    project_id uuid, id uuid,
    code varchar NOT NULL,
    version bigint NOT NULL,
    design_revision integer NOT NULL,
    agreed_design_revision integer,
    proposed_design_revision integer,
    criteria_version integer,
    proposed_criteria_version integer,
    CONSTRAINT ck_route_agreed_design_revision CHECK (agreed_design_revision = design_revision),
    CONSTRAINT pk_route PRIMARY KEY (project_id, id),
    CONSTRAINT fk_route_project_id FOREIGN KEY (project_id) REFERENCES project,
    CONSTRAINT uq_route_project_id_code UNIQUE (project_id, code)
);

CREATE TABLE section (
    project_id uuid, id varchar,
    number bigint NOT NULL GENERATED ALWAYS AS IDENTITY,
    CONSTRAINT pk_section PRIMARY KEY (project_id, id),
    CONSTRAINT fk_section_project_id FOREIGN KEY (project_id) REFERENCES project,
    CONSTRAINT uq_section_number UNIQUE (number)
);

CREATE TABLE site (
    project_id uuid, id varchar,
    kind varchar NOT NULL,
    CONSTRAINT pk_site PRIMARY KEY (project_id, id),
    CONSTRAINT fk_site_project_id FOREIGN KEY (project_id) REFERENCES project
);

CREATE TABLE token_project (
    token_id uuid, project_id uuid,
    CONSTRAINT pk_token_project PRIMARY KEY (token_id, project_id),
    CONSTRAINT fk_token_project_project_id FOREIGN KEY (project_id) REFERENCES project,
    CONSTRAINT fk_token_project_token_id FOREIGN KEY (token_id) REFERENCES token
);

CREATE TABLE acceptance (
    project_id uuid, route_id uuid, segment_id varchar, number integer,
    package_id uuid NOT NULL,
    accepted_at timestamptz NOT NULL,
    withdrawn_at timestamptz,
    withdrawal_reason text,
    CONSTRAINT pk_acceptance PRIMARY KEY (project_id, route_id, segment_id, number),
    CONSTRAINT fk_acceptance_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);
CREATE UNIQUE INDEX uq_acceptance_standing ON acceptance (project_id, route_id, segment_id) WHERE withdrawn_at IS NULL;

CREATE TABLE criteria_trial (
    project_id uuid, id uuid,
    route_id uuid NOT NULL,
    design_revision integer NOT NULL,
    criteria_sha256 varchar NOT NULL,
    criteria text,
    state varchar NOT NULL,
    problem text,
    progress text,
    result text,
    requested_at timestamptz NOT NULL,
    finished_at timestamptz,
    token_id uuid NOT NULL,
    CONSTRAINT pk_criteria_trial PRIMARY KEY (project_id, id),
    CONSTRAINT ck_criteria_trial_state CHECK (state IN ('due', 'done', 'parked', 'ended')),
    CONSTRAINT fk_criteria_trial_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);
CREATE INDEX ix_criteria_trial_project_id_requested_at ON criteria_trial (project_id, requested_at);

CREATE TABLE design_revision (
    project_id uuid, route_id uuid, revision integer,
    document text NOT NULL,
    sha256 varchar NOT NULL,
    created_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_design_revision PRIMARY KEY (project_id, route_id, revision),
    CONSTRAINT fk_design_revision_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);

CREATE TABLE design_reply (
    project_id uuid, route_id uuid, revision integer,
    is_agreed boolean NOT NULL,
    reason text,
    replied_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_design_reply PRIMARY KEY (project_id, route_id, revision),
    CONSTRAINT fk_design_reply_project_id_route_id_revision
        FOREIGN KEY (project_id, route_id, revision) REFERENCES design_revision
);

CREATE TABLE fibre (
    project_id uuid, route_id uuid, number integer,
    evidence_version bigint NOT NULL,
    judged_version bigint NOT NULL,
    engine_version integer NOT NULL DEFAULT 0,
    is_urgent boolean NOT NULL,
    digest varchar,
    content bytea,
    work text,
    counts jsonb,
    missing jsonb,
    figures jsonb,
    problem text,
    CONSTRAINT pk_fibre PRIMARY KEY (project_id, route_id, number),
    CONSTRAINT fk_fibre_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);
-- It comes packed.
ALTER TABLE fibre ALTER COLUMN content SET STORAGE EXTERNAL;
CREATE INDEX ix_fibre_problem ON fibre (project_id, route_id) WHERE problem IS NOT NULL;
CREATE INDEX ix_fibre_waiting ON fibre (project_id, route_id) WHERE judged_version < evidence_version;
CREATE INDEX ix_fibre_work ON fibre (project_id, route_id) WHERE work IS NOT NULL;

CREATE TABLE record (
    project_id uuid, id uuid,
    route_id uuid NOT NULL,
    kind varchar NOT NULL,
    lid_site varchar,
    splice_site varchar,
    laid_section varchar,
    splicer_serial varchar,
    made_at timestamptz NOT NULL,
    sent_at timestamptz NOT NULL,
    received_at timestamptz NOT NULL,
    route_version bigint NOT NULL,
    clock_is_flagged boolean NOT NULL,
    sha256 varchar NOT NULL,
    body text NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_record PRIMARY KEY (project_id, id),
    CONSTRAINT fk_record_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);
CREATE INDEX ix_record_arrival ON record (project_id, route_id, route_version, id);
CREATE INDEX ix_record_lid ON record (project_id, lid_site) WHERE lid_site IS NOT NULL;
CREATE INDEX ix_record_splice ON record (project_id, splice_site) WHERE splice_site IS NOT NULL;
CREATE INDEX ix_record_laid ON record (project_id, laid_section) WHERE laid_section IS NOT NULL;
CREATE INDEX ix_record_splicer ON record (project_id, splicer_serial, kind) WHERE splicer_serial IS NOT NULL;

CREATE TABLE route_section (
    project_id uuid, section_id varchar, route_id uuid, first_fibre integer, last_fibre integer,
    section_number bigint NOT NULL,
    is_held boolean NOT NULL,
    CONSTRAINT pk_route_section PRIMARY KEY (project_id, section_id, route_id, first_fibre, last_fibre),
    CONSTRAINT fk_route_section_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route,
    CONSTRAINT fk_route_section_project_id_section_id FOREIGN KEY (project_id, section_id) REFERENCES section,
    CONSTRAINT ex_route_section_held EXCLUDE USING gist (
        int8range(section_number * 4096 + first_fibre, section_number * 4096 + last_fibre, '[]') WITH &&
    ) WHERE (is_held)
);

CREATE TABLE route_site (
    project_id uuid, route_id uuid, site_id varchar,
    CONSTRAINT pk_route_site PRIMARY KEY (project_id, route_id, site_id),
    CONSTRAINT fk_route_site_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);
CREATE INDEX ix_route_site_project_id_site_id ON route_site (project_id, site_id);

CREATE TABLE found_spots (
    project_id uuid, route_id uuid,
    design_sha256 varchar NOT NULL,
    sha256 varchar NOT NULL,
    document text NOT NULL,
    CONSTRAINT pk_found_spots PRIMARY KEY (project_id, route_id),
    CONSTRAINT fk_found_spots_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);

CREATE TABLE standing_verdict (
    project_id uuid, route_id uuid,
    digest varchar NOT NULL,
    document text NOT NULL,
    engine_version integer NOT NULL DEFAULT 0,
    missing jsonb NOT NULL,
    settled_at timestamptz NOT NULL,
    CONSTRAINT pk_standing_verdict PRIMARY KEY (project_id, route_id),
    CONSTRAINT fk_standing_verdict_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route
);

CREATE TABLE submission (
    project_id uuid, id uuid,
    route_id uuid NOT NULL,
    number integer NOT NULL,
    state varchar NOT NULL,
    verdict_digest varchar NOT NULL,
    engine_version integer NOT NULL DEFAULT 0,
    design_revision integer NOT NULL,
    criteria_version integer NOT NULL,
    segments text[] NOT NULL,
    concessions jsonb NOT NULL,
    dark_fibres integer[] NOT NULL,
    responsible_person varchar NOT NULL,
    signature varchar NOT NULL,
    submitted_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    problem text,
    responsible_name text,
    responsible_position text,
    CONSTRAINT pk_submission PRIMARY KEY (project_id, id),
    CONSTRAINT ck_submission_state CHECK (state IN ('queued', 'issued', 'decided', 'parked')),
    CONSTRAINT fk_submission_project_id_route_id FOREIGN KEY (project_id, route_id) REFERENCES route,
    CONSTRAINT uq_submission_project_id_route_id_number UNIQUE (project_id, route_id, number)
);

CREATE TABLE package (
    project_id uuid, id uuid,
    submission_id uuid NOT NULL,
    route_id uuid NOT NULL,
    number varchar NOT NULL,
    verification_code varchar NOT NULL,
    certified_sha256 varchar NOT NULL,
    certified_level varchar NOT NULL,
    current_sha256 varchar NOT NULL,
    current_level varchar NOT NULL,
    findings_sha256 varchar NOT NULL,
    attached jsonb NOT NULL,
    audit_sequence bigint NOT NULL,
    audit_hash varchar NOT NULL,
    issued_at timestamptz NOT NULL,
    deemed_at timestamptz,
    defect_noticed_at timestamptz,
    defect_notice text,
    CONSTRAINT pk_package PRIMARY KEY (project_id, id),
    CONSTRAINT fk_package_project_id_submission_id FOREIGN KEY (project_id, submission_id) REFERENCES submission,
    CONSTRAINT uq_package_project_id_submission_id UNIQUE (project_id, submission_id),
    CONSTRAINT uq_package_verification_code UNIQUE (verification_code)
);

CREATE TABLE record_end (
    project_id uuid, record_id uuid,
    replaced_by uuid,
    reason text NOT NULL,
    ended_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_record_end PRIMARY KEY (project_id, record_id),
    CONSTRAINT fk_record_end_project_id_record_id FOREIGN KEY (project_id, record_id) REFERENCES record
);

CREATE TABLE record_annulment (
    project_id uuid, record_id uuid,
    reason text NOT NULL,
    annulled_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    CONSTRAINT pk_record_annulment PRIMARY KEY (project_id, record_id),
    CONSTRAINT fk_record_annulment_project_id_record_id FOREIGN KEY (project_id, record_id) REFERENCES record
);

CREATE TABLE submission_segment (
    project_id uuid, submission_id uuid, segment_id varchar,
    route_id uuid NOT NULL,
    is_open boolean NOT NULL,
    CONSTRAINT pk_submission_segment PRIMARY KEY (project_id, submission_id, segment_id),
    CONSTRAINT fk_submission_segment_project_id_submission_id FOREIGN KEY (project_id, submission_id) REFERENCES submission
);
CREATE UNIQUE INDEX uq_submission_segment_open ON submission_segment (project_id, route_id, segment_id) WHERE is_open;

CREATE TABLE decision (
    project_id uuid, package_id uuid,
    package_sha256 varchar NOT NULL,
    document text NOT NULL,
    sha256 varchar NOT NULL,
    decided_at timestamptz NOT NULL,
    token_id uuid,
    decided_by_name text,
    decided_by_position text,
    CONSTRAINT pk_decision PRIMARY KEY (project_id, package_id),
    CONSTRAINT fk_decision_project_id_package_id FOREIGN KEY (project_id, package_id) REFERENCES package
);

CREATE TABLE package_file (
    project_id uuid, package_id uuid, sequence integer,
    sha256 varchar NOT NULL,
    role varchar,
    signed_by varchar NOT NULL,
    person varchar,
    certificate_sha256 varchar NOT NULL,
    signed_at timestamptz NOT NULL,
    level varchar NOT NULL,
    CONSTRAINT pk_package_file PRIMARY KEY (project_id, package_id, sequence),
    CONSTRAINT fk_package_file_project_id_package_id FOREIGN KEY (project_id, package_id) REFERENCES package,
    CONSTRAINT uq_package_file_project_id_package_id_role UNIQUE (project_id, package_id, role)
);

CREATE TABLE signature_upload (
    project_id uuid, id uuid,
    package_id uuid NOT NULL,
    role varchar NOT NULL,
    sha256 varchar NOT NULL,
    base_sha256 varchar NOT NULL,
    signer varchar NOT NULL,
    state varchar NOT NULL,
    problems jsonb NOT NULL,
    uploaded_at timestamptz NOT NULL,
    checked_at timestamptz,
    token_id uuid NOT NULL,
    CONSTRAINT pk_signature_upload PRIMARY KEY (project_id, id),
    CONSTRAINT ck_signature_upload_state CHECK (state IN ('checking', 'taken', 'refused')),
    CONSTRAINT fk_signature_upload_project_id_package_id FOREIGN KEY (project_id, package_id) REFERENCES package,
    CONSTRAINT uq_signature_upload_project_id_package_id_role_sha256 UNIQUE (project_id, package_id, role, sha256)
);
