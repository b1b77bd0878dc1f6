-- Two users of PostgreSQL: the owner makes and changes tables, the site's own user only reads and writes rows. So
-- whoever gets hold of the site's password cannot lift a guard, drop a table or empty one at a stroke.
-- Run once, as the database's administrator: psql -v ON_ERROR_STOP=1 -f postgresql.sql
CREATE ROLE {{ owner }} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE PASSWORD '{{ owner_password }}';
CREATE ROLE {{ run_time }} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE PASSWORD '{{ run_time_password }}';
CREATE DATABASE {{ database }} OWNER {{ owner }} ENCODING 'UTF8' TEMPLATE template0;
REVOKE ALL ON DATABASE {{ database }} FROM PUBLIC;
GRANT CONNECT ON DATABASE {{ database }} TO {{ run_time }};
ALTER ROLE {{ run_time }} IN DATABASE {{ database }} SET search_path = public;
\connect {{ database }}
ALTER SCHEMA public OWNER TO {{ owner }};
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO {{ run_time }};
-- What the owner makes from now on, by migrate or restore:
ALTER DEFAULT PRIVILEGES FOR ROLE {{ owner }} IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {{ run_time }};
ALTER DEFAULT PRIVILEGES FOR ROLE {{ owner }} IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO {{ run_time }};
