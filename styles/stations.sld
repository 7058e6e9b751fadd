<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>stations</Name>
    <UserStyle>
      <Name>stations</Name>
      <Title>Stations</Title>
      <Abstract>The places looked from: a dark diamond with a pale eye, labelled.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>station</Name>
          <Title>Station</Title>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>cross</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#FDFBF5</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#FDFBF5</CssParameter>
                  <CssParameter name="stroke-width">5.5</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>23.9</Size>
            </Graphic>
          </PointSymbolizer>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>square</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#FDFBF5</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#FDFBF5</CssParameter>
                  <CssParameter name="stroke-width">5</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>10.7</Size>
              <Rotation>45</Rotation>
            </Graphic>
          </PointSymbolizer>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>cross</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#14121A</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">2.1</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>22.7</Size>
            </Graphic>
          </PointSymbolizer>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>square</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#FDFBF5</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">2.1</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>10.7</Size>
              <Rotation>45</Rotation>
            </Graphic>
          </PointSymbolizer>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>circle</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#14121A</CssParameter>
                </Fill>
              </Mark>
              <Size>3.3</Size>
            </Graphic>
          </PointSymbolizer>
          <TextSymbolizer>
            <Label><ogc:PropertyName>station</ogc:PropertyName></Label>
            <Font>
              <CssParameter name="font-family">sans-serif</CssParameter>
              <CssParameter name="font-size">12</CssParameter>
              <CssParameter name="font-weight">bold</CssParameter>
            </Font>
            <LabelPlacement>
              <PointPlacement>
                <AnchorPoint>
                  <AnchorPointX>0.5</AnchorPointX>
                  <AnchorPointY>0</AnchorPointY>
                </AnchorPoint>
                <Displacement>
                  <DisplacementX>0</DisplacementX>
                  <DisplacementY>12</DisplacementY>
                </Displacement>
              </PointPlacement>
            </LabelPlacement>
            <Halo>
              <Radius>1.5</Radius>
              <Fill>
                <CssParameter name="fill">#FDFBF5</CssParameter>
              </Fill>
            </Halo>
            <Fill>
              <CssParameter name="fill">#14121A</CssParameter>
            </Fill>
          </TextSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
