{{- define "rondeau.name" -}}
{{ .Release.Name }}-{{ .service }}
{{- end -}}

{{- define "rondeau.labels" -}}
app.kubernetes.io/name: rondeau
app.kubernetes.io/component: {{ .service }}
app.kubernetes.io/instance: {{ .Release.Name }}
{{- end -}}
