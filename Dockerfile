FROM python:3.12-slim
WORKDIR /app
COPY requirements.txt .
RUN pip install --no-cache-dir --require-hashes -r requirements.txt
COPY . .
RUN useradd --system markbook && mkdir /data && chown markbook /data
USER markbook
ENV MARKBOOK_DATA=/data
EXPOSE 8000
CMD ["python", "manage.py", "serve", "--host", "0.0.0.0"]
