# One image for the web server, the worker and the timetable.
FROM python:3.13-slim

# The same packages as `./mendroll` names; a test keeps both lists in step.
RUN apt-get update \
    && apt-get install --yes --no-install-recommends \
        libpango-1.0-0 \
        libpangoft2-1.0-0 \
        libharfbuzz-subset0 \
        fonts-dejavu-core \
    && rm -rf /var/lib/apt/lists/*

ENV PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    MENDROLL_DATA=/data

WORKDIR /srv/mendroll
COPY requirements.lock .
RUN pip install --no-cache-dir --require-hashes --requirement requirements.lock

COPY manage.py ./
COPY config config
COPY dealership dealership
COPY vehicles vehicles
COPY inventory inventory
COPY campaigns campaigns
COPY templates templates
COPY static static

RUN useradd --system --uid 10001 --home-dir /data mendroll \
    && install --directory --owner mendroll /data
USER mendroll
VOLUME /data
EXPOSE 8000

CMD ["gunicorn", "config.wsgi", "--bind", "0.0.0.0:8000", \
     "--worker-class", "gthread", "--workers", "4", "--threads", "4", \
     "--no-control-socket", "--access-logfile", "-"]
