#!/usr/bin/env bash
# Writes the reverse proxy's configuration for Coilbook under a name of its own, with HTTPS: phones work without a signal
# and show the camera in the page only then.
#   bash deploy/https.sh cables.example.org                               Caddy, which fetches the certificate itself
#   bash deploy/https.sh cables.example.org --certificate FULL.pem KEY.pem       Caddy with a certificate of yours
#   bash deploy/https.sh cables.example.org --nginx --certificate FULL.pem KEY.pem    nginx with a certificate of yours
# PORT=8000 is where Coilbook listens on this computer. The file is written to data/proxy and, if the proxy is installed,
# checked by its own test; the next steps are printed.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

stop() {
    echo "Coilbook: $1" >&2
    exit 1
}

name="${1-}"
[[ "$name" =~ ^[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)+$ ]] ||
    stop "name the service in lower case, like this: bash deploy/https.sh cables.example.org; it was '$name'."
shift
proxy=caddy full="" key=""
while [ $# -gt 0 ]; do
    case "$1" in
    --nginx) proxy=nginx && shift ;;
    --certificate)
        [ $# -ge 3 ] || stop "--certificate needs two files: the certificate with its chain, and its key."
        full="$(realpath "$2")" key="$(realpath "$3")" && shift 3
        [ -r "$full" ] && [ -r "$key" ] || stop "cannot read $full or $key."
        ;;
    *) stop "https.sh knows --nginx and --certificate, not '$1'." ;;
    esac
done
[ "$proxy" = caddy ] || [ -n "$full" ] || stop "nginx fetches no certificate itself; give one with --certificate, or leave --nginx out."
port="${PORT:-8000}"
[[ "$port" =~ ^[0-9]{1,5}$ ]] || stop "PORT must be a number; it is '$port'."
mkdir -p data/proxy

write_caddy() {
    sed -e "s|{\$COILBOOK_NAME} {|$name {${full:+\\n\ttls $full $key}|" -e "s|{\$COILBOOK_AT}|127.0.0.1:$port|" deploy/Caddyfile
}
write_nginx() {
    cat <<EOF
server {
    listen 80;
    listen [::]:80;
    server_name $name;
    access_log off;
    return 301 https://$name\$request_uri;
}

server {
    listen 443 ssl http2;
    listen [::]:443 ssl http2;
    server_name $name;
    ssl_certificate $full;
    ssl_certificate_key $key;
    ssl_protocols TLSv1.2 TLSv1.3;
    ssl_session_cache shared:coilbook:1m;
    server_tokens off;
    access_log off;
    client_max_body_size 7m;
    gzip on;
    gzip_types text/css text/javascript application/json application/problem+json image/svg+xml;

    location / {
        proxy_pass http://127.0.0.1:$port;
        proxy_http_version 1.1;
        proxy_set_header Connection "";
        proxy_set_header Host \$host;
        proxy_set_header X-Forwarded-For \$remote_addr;
        proxy_set_header X-Forwarded-Proto \$scheme;
        proxy_read_timeout 35s;
    }
}
EOF
}

if [ "$proxy" = caddy ]; then
    file=data/proxy/Caddyfile
    write_caddy >"$file"
    check=(caddy validate --adapter caddyfile --config "$file")
else
    file=data/proxy/coilbook.conf
    write_nginx >"$file"
    whole="$(mktemp)"
    trap 'rm -f "$whole"' EXIT
    echo "pid $whole.pid; error_log stderr; events {} http { include $PWD/$file; }" >"$whole"
    check=(nginx -t -q -c "$whole")
fi
if command -v "$proxy" >/dev/null; then
    output="$("${check[@]}" 2>&1)" || stop "$proxy does not take $file: $output"
    echo "$proxy takes it."
else
    echo "$proxy is not installed here, so the file was not checked (Debian and Ubuntu: sudo apt-get install $proxy)."
fi
echo "Wrote $file. Next:"
if [ "$proxy" = caddy ]; then
    echo "  sudo install -m 644 $file /etc/caddy/Caddyfile && sudo systemctl reload caddy"
else
    echo "  sudo install -m 644 $file /etc/nginx/conf.d/coilbook.conf && sudo nginx -t && sudo systemctl reload nginx"
fi
echo "  and in coilbook.env: COILBOOK_BASE_URL=https://$name"
