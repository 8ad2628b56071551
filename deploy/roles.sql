-- The roles burrline wants on PostgreSQL, and its database. Run once, as a superuser:
--
--     psql -f deploy/roles.sql postgres                      (-v database=NAME for another name)
--     psql -c '\password burrline_app' -c '\password burrline_migrator' postgres
--
-- burrline_owner     owns the tables; nobody logs in as it
-- burrline_migrator  may become the owner: BURRLINE_MIGRATION_DATABASE_URL
-- burrline_app       reads and writes rows, nothing else: BURRLINE_DATABASE_URL
--
-- Row-level security keeps accounts apart only for a role that is neither superuser nor
-- BYPASSRLS; burrline_app is neither.

\set ON_ERROR_STOP on
\if :{?database}
\else
\set database burrline
\endif

SELECT format('CREATE ROLE %I NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE %s', name, login)
FROM (VALUES ('burrline_owner', 'NOLOGIN'), ('burrline_migrator', 'LOGIN'), ('burrline_app', 'LOGIN'))
    AS wanted(name, login)
WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = name)
\gexec

GRANT burrline_owner TO burrline_migrator;
ALTER ROLE burrline_migrator SET role = burrline_owner;
ALTER ROLE burrline_migrator SET lock_timeout = '3s';
ALTER ROLE burrline_app SET statement_timeout = '15s';
ALTER ROLE burrline_app SET idle_in_transaction_session_timeout = '15s';

CREATE DATABASE :"database" OWNER burrline_owner TEMPLATE template0 ENCODING 'UTF8';
REVOKE ALL ON DATABASE :"database" FROM PUBLIC;
GRANT CONNECT ON DATABASE :"database" TO burrline_migrator, burrline_app;

\connect :"database"
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO burrline_app;
ALTER DEFAULT PRIVILEGES FOR ROLE burrline_owner IN SCHEMA public
    GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO burrline_app;
ALTER DEFAULT PRIVILEGES FOR ROLE burrline_owner IN SCHEMA public
    GRANT USAGE ON SEQUENCES TO burrline_app;
